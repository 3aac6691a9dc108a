"""Tables in: a spreadsheet looked at, corrected in words, and brought in."""
