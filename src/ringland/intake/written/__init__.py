"""Files as they are written: bytes, sheets and cells, and what a cell can mean."""
