"""A small picture of one reading: where it lies on its scale, and what is usual."""

from __future__ import annotations

from html import escape

from recommend.trial.verdict import Band

_WIDTH, _HEIGHT = 150, 22


def gauge(value: float, error: float | None, usual: Band, label: str) -> str:
    """An inline SVG element; `label` says the same in words and is read aloud."""
    low, high = usual.low, usual.high
    span = max(high - low, 1e-9)
    start, end = min(low - span, value - span / 4), max(high + span, value + span / 4)

    def x(at: float) -> float:
        return 4 + (at - start) / (end - start) * (_WIDTH - 8)

    spread = ""
    if error:
        spread = (
            f'<path d="M{x(max(value - error, start)):.1f} 11H{x(min(value + error, end)):.1f}" '
            'stroke="#1a1a1a" stroke-width="2"/>'
        )
    return (
        f'<svg class="gauge" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
        f'aria-label="{escape(label, quote=True)}" direction="ltr">'
        f'<path d="M4 11H{_WIDTH - 4}" stroke="#767676" stroke-width="1"/>'
        f'<rect x="{x(low):.1f}" y="4" width="{x(high) - x(low):.1f}" height="14" '
        'fill="#d5e5c5" stroke="#46632f"/>'
        f'{spread}<circle cx="{x(value):.1f}" cy="11" r="5" fill="#fff" stroke="#1a1a1a" '
        'stroke-width="2.5"/></svg>'
    )
