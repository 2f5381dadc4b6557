"""Pictures to look at or to print: a week, a battery, a clock, differences of cash."""
