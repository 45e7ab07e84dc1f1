"""What did each engine burn?  Fills and rentals in; octane margin and fuel age per stretch out."""
