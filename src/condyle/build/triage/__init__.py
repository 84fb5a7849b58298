"""Is it the printer or the file? What made a print fail, ranked with its evidence."""

from condyle.build.triage.causes import CAUSES, Cause, GeometryCause, Symptom
from condyle.build.triage.weigh import Company, History, Measure, Suspect, Triage, triage

__all__ = [
    "CAUSES", "Cause", "Company", "GeometryCause", "History", "Measure", "Suspect", "Symptom", "Triage", "triage",
]  # fmt: skip
