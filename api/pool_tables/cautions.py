"""What to know before doing the work that an answer sends somebody to do: at a battery, at the mains, with cash.

- Whoever is sent to such work is given the cautions for it, in full, every time.
- They advise and forbid nothing: local rules and a qualified person decide, and each list ends by saying so.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to mind: a code for programs, a sentence for people."""

    code: str
    detail: str


_LOCAL_RULES = Caution("local_rules", "Local rules and a qualified person decide; this list replaces neither.")
AT_A_BATTERY = (
    Caution("eyes_and_hands", "Wear eye and hand protection: a battery holds acid."),
    Caution("no_sparks", "No sparks, flames or smoking near it, and no metal jewellery."),
    Caution("ventilate", "Ventilate while it charges: charging gives off gas that burns."),
    Caution("charger_off", "Switch the charger off before connecting or disconnecting it."),
    # 29 CFR 1926.441 asks for drenching facilities within 25 ft of where batteries are handled.
    Caution("rinse_water", "Have water for rinsing eyes and skin within reach (7.6 m, 25 ft)."),
    Caution("lifting_battery", "It is heavy: lift it close to the body, upright, or with a second person."),
    _LOCAL_RULES,
)
LIFTING_CASH = (
    # 4,000 quarters of 5.670 g are 22.68 kg (US Mint). The load constant of the NIOSH lifting equation (Pub. 94-110)
    # is 23 kg, in the ideal posture only.
    Caution("lifting_cash", "A full bag of coins can weigh over 20 kg (50 lb): carry half bags, or share the load."),
    _LOCAL_RULES,
)
CARRYING_CASH = (
    Caution("not_alone", "Carry cash with a second person where you can; let somebody know your way and your return."),
    Caution("vary_the_way", "Vary days, times and ways; keep bags out of sight and the doors locked while you drive."),
    Caution("bank_on_the_way", "Bank on the way where the value carried grows large; ask your insurer for the limit."),
    Caution("hand_it_over", "If you are threatened, hand the money over: no amount is worth an injury."),
    *LIFTING_CASH,
)
AT_THE_MAINS = (
    Caution("unplug", "Unplug the table before opening it, and keep the plug in sight."),
    Caution("qualified_person", "Mains wiring is work for a qualified person."),
    _LOCAL_RULES,
)
