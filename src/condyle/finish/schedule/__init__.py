"""The order of work over days: what must wait for what, what can run by itself overnight, and what decides the end."""

from condyle.finish.schedule.calendar import to_icalendar
from condyle.finish.schedule.plan import Evening, Schedule, Scheduled, schedule
from condyle.finish.schedule.tasks import CriticalPath, Task, critical_path

__all__ = [
    "CriticalPath", "Evening", "Schedule", "Scheduled", "Task", "critical_path", "schedule", "to_icalendar",
]  # fmt: skip
