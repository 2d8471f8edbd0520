"""Spans of time, amounts of data and distances in words, rounded as people say them."""


def span(seconds: float) -> str:
    """Return a span of time: "50 s", "20 min", "1 h 20 min", "9 h", "12 days"; one below zero is none."""
    whole = max(0, round(seconds))
    if whole < 120:
        return f"{whole} s"
    minutes = round(whole / 60)
    if minutes < 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 5 and rest:
        return f"{hours} h {rest} min"
    hours = round(minutes / 60)
    return f"{hours} h" if hours < 48 else f"{round(hours / 24)} days"


def size(count: float) -> str:
    """Return an amount of data in decimal units, to three figures: "850 B", "1.2 kB", "12.5 MB"."""
    return _unit(count, (("TB", 1e12), ("GB", 1e9), ("MB", 1e6), ("kB", 1e3)), "B")


def speed(bits_per_s: float) -> str:
    """Return a speed of data in decimal units, to three figures: "850 bit/s", "1.2 kbit/s", "3 Mbit/s"."""
    return _unit(bits_per_s, (("Gbit/s", 1e9), ("Mbit/s", 1e6), ("kbit/s", 1e3)), "bit/s")


def metres(length_m: float) -> str:
    """Return a length in whole metres up to a kilometre, then in kilometres to three figures."""
    return f"{round(length_m)} m" if abs(length_m) < 999.5 else f"{length_m / 1000:.3g} km"


def area(square_m: float) -> str:
    """Return an area to three figures: "2,550 m²", from a tenth of a square kilometre on "0.12 km²"."""
    if square_m < 1e5:
        return f"{float(f'{square_m:.3g}'):,.0f} m²"
    return f"{square_m / 1e6:.2f} km²"


def several(words: list[str]) -> str:
    """Return words as a list in a sentence: "a", "a and b", "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""


def _unit(count: float, units: tuple[tuple[str, float], ...], one: str) -> str:
    for unit, scale in units:
        if float(f"{count:.3g}") >= scale:
            return f"{float(f'{count / scale:.3g}'):g} {unit}"
    return f"{count:.0f} {one}"
