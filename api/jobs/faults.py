"""The faults that can be reported of a table: a short code for each, and what is seen of it.

- A code says what somebody at the table sees, never what may have caused it: a venue's staff can name it on the phone.
- ``other`` is for what the list does not have; then the words say it.
"""

from __future__ import annotations

from typing import Literal, get_args

Fault = Literal[
    "money_refused",
    "money_not_credited",
    "wrong_price",
    "balls_not_released",
    "ball_stuck",
    "ball_missing",
    "no_power",
    "display_unreadable",
    "lamp_out",
    "clock_wrong",
    "not_level",
    "cloth_damaged",
    "cushion_damaged",
    "pocket_damaged",
    "cue_damaged",
    "frame_damaged",
    "lock_damaged",
    "broken_into",
    "other",
]

SEEN: dict[Fault, str] = {
    "money_refused": "coins or notes do not go in, or come back",
    "money_not_credited": "money goes in and nothing is credited",
    "wrong_price": "the table asks for another price than it should",
    "balls_not_released": "a game is credited and the balls stay locked",
    "ball_stuck": "a ball does not come out, or the cue ball does not come back",
    "ball_missing": "a ball is missing",
    "no_power": "no lamp, no display, no reaction",
    "display_unreadable": "the display shows nothing that can be read",
    "lamp_out": "a lamp is out",
    "clock_wrong": "the table shows the wrong day or time",
    "not_level": "balls roll by themselves",
    "cloth_damaged": "the cloth is torn or worn through",
    "cushion_damaged": "a cushion is loose or dead",
    "pocket_damaged": "a pocket is torn or loose",
    "cue_damaged": "a cue is broken or has no tip",
    "frame_damaged": "a leg or part of the frame is broken: nobody leans on it or lifts it",
    "lock_damaged": "a lock or door does not close",
    "broken_into": "somebody has forced the cash box or a door: leave everything as it is",
    "other": "none of these: the words say what",
}
"""What is seen of each fault, for whoever chooses one."""

FAULTS: tuple[Fault, ...] = get_args(Fault)
