"""Colours of all pictures, and the size of their letters.

Colours are those of Okabe and Ito (*Color Universal Design*, 2008), which the colour-blind tell
apart; each also has a shape of its own and a lightness of its own, for print in black and white.
"""

__all__ = ["BLUE", "GREEN", "GREY", "INK", "ORANGE", "POINTS", "RULE", "SKY", "VERMILION"]

INK, GREY, RULE = "#222222", "#8c8c8c", "#c9c9c9"
SKY, BLUE, GREEN = "#56b4e9", "#0072b2", "#009e73"
ORANGE, VERMILION = "#e69f00", "#d55e00"
#: Size of letters.
POINTS = 9.5
