"""Seeded measurements; ratios within one run, medians, peak memory. `python -m benchmarks` runs them all."""
