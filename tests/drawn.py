"""What every picture is held to."""

from matplotlib import pyplot
from matplotlib.figure import Figure

from mentorstats.drawings.style import Page


def held(draw, result, **more):
    """Draw on new axes and on axes of one's own, whose figure keeps its size; return the latter."""
    alone = draw(result, **more)
    page = alone.get_figure()
    assert isinstance(page, Page)
    pyplot.close(page)
    canvas = Figure(figsize=(5, 9))
    axes = canvas.subplots(1, 2)
    assert draw(result, axes[1], **more) is axes[1]
    assert canvas.get_figheight() == 9
    assert not axes[0].has_data()
    return axes[1]


def labels(axes):
    """Names of the rows, from the top."""
    return [text.get_text() for text in axes.get_yticklabels()]
