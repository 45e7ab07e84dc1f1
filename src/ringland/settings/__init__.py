"""What a shop may choose: the files it can write, and the numbers we chose where it is silent."""
