"""Intake: a sculpt from a file becomes a sound solid in figure coordinates, and every change is told."""

from condyle.figure.intake.intake import Intake, IntakeReport, IntakeWanted, take_in

__all__ = ["Intake", "IntakeReport", "IntakeWanted", "take_in"]
