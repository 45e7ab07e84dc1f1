"""What the columns of a file that is not in the contract's form mean."""
