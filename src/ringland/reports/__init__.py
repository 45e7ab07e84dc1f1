"""What is said of one failure: its case, its evidence and its sheet, put together."""
