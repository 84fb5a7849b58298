"""The book's pictures: the figure, the kit drawn apart, parts as they lie, and the steps of assembly."""

from condyle.book.drawings.figure import cover, drawn_apart
from condyle.book.drawings.lying import lying
from condyle.book.drawings.steps import StepDrawing, step_drawing

__all__ = ["StepDrawing", "cover", "drawn_apart", "lying", "step_drawing"]
