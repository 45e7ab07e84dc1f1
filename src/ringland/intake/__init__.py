"""What people wrote down: files, mapping, casting, setting aside, mending."""
