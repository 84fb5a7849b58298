"""The figure in the browser: a page served on this machine alone, on which the whole job can be done."""
