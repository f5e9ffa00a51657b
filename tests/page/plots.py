"""What a plot of the page shows, read back from its drawing by its ticks."""

import re
from collections.abc import Callable
from dataclasses import dataclass

from playwright.sync_api import Locator

READ = """drawing => {
  const all = (selector, of) => [...drawing.querySelectorAll(selector)].map(of);
  const ticks = (along) => all(`.tick-${along}`, (node) => [node.textContent, Number(node.getAttribute(along))]);
  const box = (node) => {
    const { x, y, width, height } = node.getBBox();
    return [x, y, x + width, y + height];
  };
  return {
    ticks_x: ticks("x"),
    ticks_y: ticks("y"),
    dots: all(".dot", (node) => box(node)).map(([x0, y0, x1, y1]) => [(x0 + x1) / 2, (y0 + y1) / 2]),
    spans: all(".span", box),
    bands: all(".band", (node) => [...node.points].map(({ x, y }) => [x, y])),
  };
}"""
TICK_PX = 0.1


@dataclass(frozen=True, slots=True)
class Drawn:
    """Labels of ticks with their places, and places of what is drawn, in pixels from the upper left."""

    ticks_x: list[tuple[str, float]]
    ticks_y: list[tuple[str, float]]
    dots: list[tuple[float, float]]
    spans: list[tuple[float, float, float, float]]
    bands: list[list[tuple[float, float]]]


def drawn(plot: Locator) -> Drawn:
    """Return what a plot, found by its role and name, has drawn."""
    return Drawn(**plot.evaluate(READ))


def numbers(text: str) -> list[float]:
    """Return the numbers in a label or cell."""
    return [float(found.replace("−", "-")) for found in re.findall(r"[-−]?\d+(?:\.\d+)?", text)]


def reading(
    ticks: list[tuple[str, float]], scale: Callable[[float], float] = float, unscale: Callable[[float], float] = float
) -> Callable[[float], float]:
    """Return what reads a value off a place, by the ticks at both ends; those between must lie on their line.

    `scale` is what the axis is straight in, `unscale` its inverse: `log` and `exp` for a logarithmic one.
    """
    values = [scale(numbers(text)[0]) for text, _ in ticks]
    places = [place for _, place in ticks]
    low, high = values.index(min(values)), values.index(max(values))
    slope = (values[high] - values[low]) / (places[high] - places[low])
    for value, place in zip(values, places, strict=True):
        assert abs(value - values[low] - slope * (place - places[low])) <= abs(slope) * TICK_PX
    return lambda place: unscale(values[low] + slope * (place - places[low]))
