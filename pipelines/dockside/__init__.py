"""The dockside server: entries by phone onto the disk, and into the warehouse by its one writer."""
