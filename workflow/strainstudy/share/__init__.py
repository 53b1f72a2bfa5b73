"""The study as others can read it: a BIDS folder without names and dates, and what of the lab's own words leaves it."""
