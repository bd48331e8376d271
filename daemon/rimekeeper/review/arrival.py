"""The arrival at a target in one sentence, or the plain reason why nobody can say."""

from __future__ import annotations

from rimekeeper.core.model import Instant
from rimekeeper.core.process.forecast import Forecast, Outlook
from rimekeeper.review.wording import Wording, length

_CLOSE = 3 * 60_000

REASONS = {
    Outlook.AWAY: "moving away from the target",
    Outlook.FALLS_SHORT: "levels off before the target",
    Outlook.PLATEAU: "on the freezing plateau: no arrival time until it is over",
    Outlook.UNSETTLED: "too early to say when",
    Outlook.STALE: "no fresh reading, so no arrival time",
}


def sentence(forecast: Forecast | None, now: Instant, wording: Wording) -> str:
    """Such as "in 4 min, about 12:41, between 12:40 and 12:43"."""
    if forecast is None:
        return REASONS[Outlook.UNSETTLED]
    if forecast.outlook is Outlook.THERE:
        return "is there"
    if forecast.outlook is Outlook.ARRIVES and forecast.expected is not None:
        return _arrives(forecast, forecast.expected, now, wording)
    reason = REASONS.get(forecast.outlook, REASONS[Outlook.UNSETTLED])
    if forecast.outlook is Outlook.PLATEAU and forecast.earliest is not None and forecast.earliest > now:
        reason = f"on the freezing plateau: not before {wording.when(forecast.earliest, now)}"
    why = forecast.why.strip().rstrip(".")
    why = why[:1].lower() + why[1:]
    return f"{reason} ({why})" if why and why.lower() not in reason.lower() else reason


def _arrives(forecast: Forecast, expected: Instant, now: Instant, wording: Wording) -> str:
    away = expected - now
    if away <= 0:
        return "any moment now"
    seconds = away < _CLOSE
    text = f"in {length(away)}, about {_clock(expected, now, wording, seconds=seconds)}"
    if forecast.earliest is None or forecast.latest is None:
        return text
    early = _clock(max(forecast.earliest, now), now, wording, seconds=seconds)
    late = _clock(forecast.latest, now, wording, seconds=seconds)
    return text if early == late else f"{text}, between {early} and {late}"


def _clock(at: Instant, now: Instant, wording: Wording, *, seconds: bool) -> str:
    return wording.clock(at, seconds=True) if seconds else wording.when(at, now)
