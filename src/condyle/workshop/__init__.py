"""Printers, materials and fits: what the maker's workshop can do, with what certainty, and who says so."""
