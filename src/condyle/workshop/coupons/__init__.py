"""Coupons: small prints that measure a fit. Here: their lettering, plates, time and mass, and those without joints.

Those that hold real joints are in ``condyle.joints.coupons``, since a layer may only import what lies below it.
"""
