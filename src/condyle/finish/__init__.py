"""After printing: colours, sanding, coats, the order of work, and how the kit goes together."""
