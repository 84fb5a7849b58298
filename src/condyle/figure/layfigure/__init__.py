"""The lay figure: the plain, printable test figure of a skeleton in turned-wood forms."""

from condyle.figure.layfigure.limb import LayFigure, lay_figure

__all__ = ["LayFigure", "lay_figure"]
