"""What do we do this week?  Estimates in; chances, calls, sentences, pictures and pages out."""
