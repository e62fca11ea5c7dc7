"""An address as a symbol on a screen, for another phone to read."""

from labels.rules.layout import symbols


def symbol_svg(address: str) -> str:
    """A QR symbol as SVG, quiet zone included, without a size of its own."""
    symbol = symbols.encode(address)
    side, quiet = symbol.modules_with_quiet, symbols.QUIET_MODULES
    path = "".join(f"M{x + quiet} {y + quiet}h{run}v1h-{run}z" for x, y, run in symbol.runs())
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" '
        f'shape-rendering="crispEdges"><path fill="#fff" d="M0 0h{side}v{side}h-{side}z"/>'
        f'<path d="{path}"/></svg>'
    )
