"""Strength and grip of joints by closed formulas: snap-fits, press fits, friction.

Kernels on plain floats; mm, degrees, N, N·mm, MPa. A call that makes no sense raises UsageError ``mechanics.range``; a
design that cannot work is an answer (an infinite force, a strain above what the material permits), never an error.
"""
