"""What does the operator read?  The week's report in; pages, tables and mail out."""
