"""Why did this engine break?  Findings and record in; cause and rebuild sheets out."""
