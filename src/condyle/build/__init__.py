"""How a part is built: orientation, islands, supports, plates, the shape as printed, estimates, and why one failed."""
