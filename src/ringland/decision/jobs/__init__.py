"""What was asked for, what answered it, and the state of a hull that follows."""
