"""Pictures of what other folders know, and their numbers as CSV: a venue's week, a battery, a clock, differences of cash."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta, tzinfo
from uuid import UUID

from sqlmodel import Session

from ..health.battery_forecast import Forecast
from ..health.clock_changes import next_change
from ..health.clock_offset import ClockReading, walk
from ..health.service import health_of
from ..health.state_of_charge import SupplyReading
from ..paper.words import date_words, table_words
from ..pool_tables.service import get_table
from ..pricing import Calendar
from ..reports.schemas import DifferencesOut
from ..schedules.queries import listed_at, place_of_venue
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, get_venue
from ..web.csv_text import CsvText, csv_text, text_cell
from .line_chart import Series, SeriesKind, TimeChart, time_chart
from .week_picture import WeekBox, week_picture


def week_boxes(
    session: Session, venue_id: UUID, *, on: date | None, now: datetime
) -> tuple[VenueRow, list[WeekBox], Calendar]:
    """Return a venue's week as boxes: one for each window of each trading day; refuse (``no_schedule_yet``) one without."""
    venue = get_venue(session, venue_id)
    timetable, calendar = listed_at(session, place_of_venue(session, venue_id)), calendar_of(venue)
    week = timetable.week(on or calendar.trading_day(now))
    boxes = [
        WeekBox(
            on=day,
            starts=calendar.local(span.from_at),
            ends=calendar.local(span.to_at),
            name=span.name,
            sells="closed" if span.tariff is None else "free" if span.tariff.free else span.tariff.code,
            is_closed=span.tariff is None,
        )
        for day, spans in week.items()
        for span in spans
        if span.from_at is not None and span.to_at is not None
    ]
    return venue, boxes, calendar


def week_svg(session: Session, venue_id: UUID, *, on: date | None, now: datetime) -> str:
    """Return the picture of a venue's week."""
    venue, boxes, calendar = week_boxes(session, venue_id, on=on, now=now)
    days = sorted({box.on for box in boxes})
    return week_picture(
        f"{venue.name}, week of {date_words(days[0])}",
        boxes,
        day_starts={day: calendar.local(calendar.day_starts(day)) for day in days},
        day_ends={day: calendar.local(calendar.day_starts(day + timedelta(days=1))) for day in days},
    )


def week_csv(session: Session, venue_id: UUID, *, on: date | None, now: datetime) -> CsvText:
    """Return the numbers of that picture."""
    _, boxes, _ = week_boxes(session, venue_id, on=on, now=now)
    columns = ("on", "from_at", "to_at", "window", "sells")
    return csv_text(
        columns, ((box.on, box.starts, box.ends, text_cell(box.name), text_cell(box.sells)) for box in boxes)
    )


def battery_svg(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> str:
    """Return the picture of a battery: its voltages, the level that decides, and the forecast with its band."""
    health = health_of(session, table_id, now=now, here_only=here_only)
    readings = [(one.taken_at, one.battery_mv / 1000) for one in _local(health.facts.supply, health.facts.zone)]
    table, judged = get_table(session, table_id), health.battery
    series, levels, notes = [Series(points=readings, kind="marks")], [], [health.why_no_battery or ""]
    if judged is not None:
        level = judged.level_mv / 1000
        levels = [(level, f"{level:.2f} V: {judged.level.removesuffix('_mv').replace('_', ' ')}")]
        notes = [judged.why, *judged.caveats]
        if judged.forecast is not None and readings:
            ahead = judged.forecast
            series += [
                Series(
                    points=[readings[-1], (datetime.combine(day, time(12), health.facts.zone), ahead.level_mv / 1000)],
                    kind=kind,
                )
                for day, kind in _forecast_lines(ahead)
            ]
            notes.append(
                f"Line: reaches {ahead.level_mv / 1000:.2f} V about {date_words(ahead.reaches_on)}. Dashed: its band, "
                f"from {date_words(ahead.earliest_on)} to "
                f"{'no date' if ahead.latest_on is None else date_words(ahead.latest_on)}."
            )
        elif judged.why_no_forecast is not None:
            notes.append(f"No forecast. {judged.why_no_forecast.detail}")
    return time_chart(
        TimeChart(
            title=f"Battery of {table_words(table.label, table.profile.get('frame_number'))}",
            description=" ".join(filter(None, notes)),
            series=series,
            value_words=lambda volts: f"{volts:.2f}",
            levels=levels,
            notes=[note for note in notes if note],
        )
    )


def battery_csv(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> CsvText:
    """Return the numbers of that picture."""
    facts = health_of(session, table_id, now=now, here_only=here_only).facts
    lines = ((one.taken_at, f"{one.battery_mv / 1000:.3f}") for one in _local(facts.supply, facts.zone))
    return csv_text(("taken_at", "volts"), lines)


def clock_svg(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> str:
    """Return the picture of a clock: how far it was off at each reading, and when the clocks changed."""
    health = health_of(session, table_id, now=now, here_only=here_only)
    table, zone = get_table(session, table_id), health.facts.zone
    points = _offsets(health.facts.clock, zone)
    changes = []
    if points:
        change = next_change(zone, after=points[0][0])
        while change is not None and change.at <= points[-1][0]:
            changes.append(
                (change.at, f"clocks {'on' if change.shift_s > 0 else 'back'} {abs(change.shift_s) // 60} min")
            )
            change = next_change(zone, after=change.at + timedelta(days=1))
    notes = [health.clock.health.why if health.clock else health.why_no_clock or ""]
    return time_chart(
        TimeChart(
            title=f"Clock of {table_words(table.label, table.profile.get('frame_number'))}: minutes ahead",
            description=" ".join(notes),
            series=[Series(points=points), Series(points=points, kind="marks")],
            value_words=_signed,
            levels=[(0.0, "right")],
            instants=changes,
            notes=notes,
        )
    )


def clock_csv(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> CsvText:
    """Return the numbers of that picture."""
    facts = health_of(session, table_id, now=now, here_only=here_only).facts
    return csv_text(
        ("taken_at", "minutes_ahead"), ((at, f"{value:.2f}") for at, value in _offsets(facts.clock, facts.zone))
    )


def differences_svg(found: DifferencesOut, *, name: str) -> str:
    """Return the picture of counted and expected cash: the difference of each collection, its average, and the limits."""
    points = [(point.collected_at, float(point.difference_percent)) for point in found.points]
    average = [
        (point.collected_at, float(point.ewma_percent)) for point in found.points if point.ewma_percent is not None
    ]
    limit = None if found.ewma_limit_percent is None else float(found.ewma_limit_percent)
    on = {point.collection_id: f"{point.collected_at:%Y-%m-%d}" for point in found.points}
    leans = [f"Counts lean {signal.side} since {on[signal.points_to]}." for signal in found.signals]
    notes = [*dict.fromkeys(leans), found.why_no_chart or "", found.notice]
    return time_chart(
        TimeChart(
            title=f"Over and short, {name}",
            description=" ".join(filter(None, notes)),
            series=[Series(points=points, kind="marks"), *([Series(points=average)] if average else [])],
            value_words=lambda percent: f"{_signed(percent)} %",
            levels=[(0.0, "as expected"), *([] if limit is None else [(limit, "limit"), (-limit, "limit")])],
            notes=[
                "Marks: counted less expected." + (" Line: their average." if average else ""),
                *(note for note in notes if note),
            ],
        )
    )


def differences_csv(found: DifferencesOut) -> CsvText:
    """Return the numbers of that picture."""
    columns = (
        "collected_at",
        "collection_id",
        "expected",
        "counted",
        "difference",
        "currency",
        "difference_percent",
        "ewma_percent",
    )
    return csv_text(
        columns,
        (
            [getattr(point, name) if getattr(point, name) is not None else "" for name in columns]
            for point in found.points
        ),
    )


def _forecast_lines(ahead: Forecast) -> list[tuple[date, SeriesKind]]:
    band: list[tuple[date, SeriesKind]] = [(ahead.earliest_on, "dashed")]
    if ahead.latest_on is not None:
        band.append((ahead.latest_on, "dashed"))
    return [(ahead.reaches_on, "line"), *band]


def _local(readings: Iterable[SupplyReading], zone: tzinfo) -> list[SupplyReading]:
    """Return readings in time order, each at its venue's local time."""
    return sorted(
        (replace(one, taken_at=one.taken_at.astimezone(zone)) for one in readings), key=lambda one: one.taken_at
    )


def _offsets(readings: Sequence[ClockReading], zone: tzinfo) -> list[tuple[datetime, float]]:
    """Return by how many minutes a clock was ahead at each reading, the middle of what its display leaves open."""
    found = walk(readings, zone)
    pairs = zip(found.readings, found.offsets, strict=True)
    return [(reading.taken_at.astimezone(zone), offset.middle_s / 60) for reading, offset in pairs]


def _signed(value: float) -> str:
    """Write a number for a scale with its sign, short enough to stand beside it."""
    return f"{value:+.0f}" if abs(value) >= 100 else f"{value:+.1f}".replace("-0.0", "+0.0")
