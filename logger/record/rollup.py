"""One-second lows, highs and means of every channel, and any window of them in as few points as a chart wants."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.record.rows import Rows


@dataclass(frozen=True, slots=True)
class Spans:
    """Stretches of one channel: t_s, low, high, mean float64 (n,); readings int64 (n,), how many in each."""

    t_s: np.ndarray
    low: np.ndarray
    high: np.ndarray
    mean: np.ndarray
    readings: np.ndarray

    def __len__(self) -> int:
        return len(self.t_s)


def seconds(rows: Rows) -> tuple[np.ndarray, Spans]:
    """Channel number (n,) of each whole second that holds a valid reading, and the seconds; t_s is where it begins."""
    rows = rows[np.isfinite(rows.value)]
    second = np.floor(rows.t_s)
    order = np.lexsort((second, rows.channel))
    channel, second, value = rows.channel[order], second[order], rows.value[order]
    new = np.empty(len(rows), bool)
    new[:1] = True
    new[1:] = (channel[1:] != channel[:-1]) | (second[1:] != second[:-1])
    return channel[new], _reduce(second, value, value, value, np.ones(len(rows), np.int64), np.flatnonzero(new))


def _reduce(
    t_s: np.ndarray, low: np.ndarray, high: np.ndarray, mean: np.ndarray, readings: np.ndarray, first: np.ndarray
) -> Spans:
    """Join neighbours; `first` are the places where a group begins. The time is the first of each group."""
    if not len(first):
        return Spans(*(column[:0] for column in (t_s, low, high, mean, readings)))
    total = np.add.reduceat(readings, first)
    return Spans(
        t_s[first],
        np.minimum.reduceat(low, first),
        np.maximum.reduceat(high, first),
        np.add.reduceat(mean * readings, first) / total,
        total,
    )


def of_rows(rows: Rows) -> Spans:
    """Each valid reading as a stretch of its own."""
    rows = rows[np.isfinite(rows.value)]
    return Spans(rows.t_s, rows.value, rows.value, rows.value, np.ones(len(rows), np.int64))


def join(parts: list[Spans]) -> Spans:
    """All stretches in order of time."""
    columns = ("t_s", "low", "high", "mean", "readings")
    joined = [np.concatenate([getattr(part, name) for part in parts]) for name in columns]
    order = np.argsort(joined[0], kind="stable")
    return Spans(*(column[order] for column in joined))


def thin(spans: Spans, from_s: float, to_s: float, points: int) -> Spans:
    """At most `points` stretches of equal length that cover the window; every low and high is within one of them."""
    if len(spans) <= points:
        return spans
    width = (to_s - from_s) / points
    place = np.minimum(((spans.t_s - from_s) / width).astype(np.int64), points - 1)
    first = np.flatnonzero(np.concatenate([[True], place[1:] != place[:-1]]))
    return _reduce(spans.t_s, spans.low, spans.high, spans.mean, spans.readings, first)
