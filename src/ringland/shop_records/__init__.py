"""What did people write down?  Records in; typed rows, engine hours and piston-set lives out."""
