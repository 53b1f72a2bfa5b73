"""A page for each person: sessions side by side, of result tables alone, printable on two sheets."""
