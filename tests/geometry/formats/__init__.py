"""Tests of the file formats."""
