"""The shortest way over the lot: for the rig from the road, for the water line to the house.

Ways are searched on a grid with sixteen directions (at worst 2.8 % too long),
then pulled tight: corners are skipped wherever the straight line stays on
allowed ground, so the length that is shown is the length of the line drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from shapely import LineString
from shapely.geometry.base import BaseGeometry

_MOVES = ((1, 0), (0, 1), (1, 1), (1, -1), (2, 1), (1, 2), (2, -1), (1, -2))
"""Half of the sixteen directions; the ways run both ways."""
_NOWHERE = -9999


@dataclass(frozen=True, eq=False)
class Grid:
    """A square grid of places, in feet.

    Attributes
    ----------
    x_ft, y_ft : ndarray of shape (n_rows, n_columns)
    step_ft : float
    """

    x_ft: np.ndarray
    y_ft: np.ndarray
    step_ft: float


@dataclass(frozen=True, eq=False)
class Routes:
    """Shortest ways from every place of a grid to a goal.

    Attributes
    ----------
    length_ft : ndarray of shape (n_rows, n_columns)
        Infinite where no way leads.
    """

    length_ft: np.ndarray
    _grid: Grid
    _towards: np.ndarray
    _open_ground: BaseGeometry
    _goal: BaseGeometry

    def way(self, node: int) -> LineString | None:
        """Return the tightened way from a place to the goal, None where there is none.

        Parameters
        ----------
        node : int
            The place's number in the grid, row by row.
        """
        if not np.isfinite(self.length_ft.ravel()[node]):
            return None
        points = []
        while node != _NOWHERE and node < self.length_ft.size:
            points.append((self._grid.x_ft.ravel()[node], self._grid.y_ft.ravel()[node]))
            node = int(self._towards[node])
        return _tightened(np.array(points), self._open_ground, self._goal)


def make_grid(bounds: tuple[float, float, float, float], step_ft: float) -> Grid:
    """Return a grid over (west, south, east, north) in feet, its lines on multiples of the step."""
    west, south, east, north = bounds
    xs = np.arange(np.floor(west / step_ft), np.ceil(east / step_ft) + 1) * step_ft
    ys = np.arange(np.floor(south / step_ft), np.ceil(north / step_ft) + 1) * step_ft
    x_ft, y_ft = np.meshgrid(xs, ys)
    return Grid(x_ft, y_ft, step_ft)


def find_routes(
    grid: Grid, open_ground: BaseGeometry, goal: BaseGeometry, passable: np.ndarray | None = None
) -> Routes:
    """Return the shortest way to the goal from every place of a grid.

    Parameters
    ----------
    grid : Grid
    open_ground : shapely geometry, feet
        Where the way may lead.
    goal : shapely geometry, feet
        The road, or the house; reached at its nearest point.
    passable : ndarray of bool, shape of the grid, optional
        Places that are closed for another reason (too steep).
    """
    shape = grid.x_ft.shape
    shapely.prepare(open_ground)
    usable = shapely.contains_xy(open_ground, grid.x_ft, grid.y_ft)
    if passable is not None:
        usable &= passable
    nodes = np.arange(grid.x_ft.size).reshape(shape)
    goal_distance = shapely.distance(shapely.points(grid.x_ft, grid.y_ft), goal)
    near = usable & (goal_distance <= 1.5 * grid.step_ft)
    start = grid.x_ft.size
    tails, heads, lengths = [np.full(near.sum(), start)], [nodes[near]], [goal_distance[near]]
    for across, up in _MOVES:
        tail, head = _shifted(nodes, across, up)
        passes = usable.ravel()[tail] & usable.ravel()[head]
        if abs(across) + abs(up) > 1:
            # A slanted move passes between places; both neighbours on its line must be open too.
            for between_across, between_up in _between(across, up):
                passes &= usable.ravel()[tail + between_up * shape[1] + between_across]
        tails.append(tail[passes])
        heads.append(head[passes])
        lengths.append(np.full(passes.sum(), grid.step_ft * np.hypot(across, up)))
    # A length of exactly 0 would be read as "no edge".
    edges = (np.maximum(np.concatenate(lengths), 1e-9), (np.concatenate(tails), np.concatenate(heads)))
    graph = coo_array(edges, shape=(start + 1, start + 1)).tocsr()
    length, towards = dijkstra(graph, directed=False, indices=start, return_predecessors=True)
    return Routes(length[:start].reshape(shape), grid, towards, open_ground, goal)


def _shifted(nodes: np.ndarray, across: int, up: int) -> tuple[np.ndarray, np.ndarray]:
    """Return each place and the one a move away, for all places that have one (`up` may be negative)."""
    rows, columns = nodes.shape
    low = slice(max(0, -up), rows - max(0, up))
    high = slice(max(0, up), rows - max(0, -up))
    return nodes[low, : columns - across].ravel(), nodes[high, across:].ravel()


def _between(across: int, up: int) -> tuple[tuple[int, int], ...]:
    sign = 1 if up >= 0 else -1
    if abs(across) == abs(up):
        return ((across, 0), (0, up))
    return ((1, 0), (1, sign)) if across == 2 else ((0, sign), (1, sign))


def _tightened(points: np.ndarray, open_ground: BaseGeometry, goal: BaseGeometry) -> LineString:
    """Return the way with every corner left out that a straight line on open ground can skip."""
    kept, place, last = [points[0]], 0, len(points) - 1
    while True:
        straight = shapely.shortest_line(shapely.Point(points[place]), goal)
        if place == last or shapely.covers(open_ground, straight):
            kept.append(shapely.get_coordinates(straight)[-1])
            return LineString(kept)
        ahead = shapely.linestrings([[points[place], later] for later in points[place + 1 :]])
        seen = np.flatnonzero(shapely.covers(open_ground, ahead))
        place += 1 + (int(seen[-1]) if len(seen) else 0)
        kept.append(points[place])
