"""The build book: everything that a maker takes to the bench, set as pages."""
