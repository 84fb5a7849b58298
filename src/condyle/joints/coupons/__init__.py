"""Coupons that hold real joints: the clearance ladder and the friction beam."""
