"""Meshes, solids, frames, distance, fields, sections, pictures and file formats. Knows nothing of figures."""
