"""The margin above water that is none."""

# floors are kept this far above a flood [@freeboard]; less above the water itself is no margin at all
FREEBOARD_M = 0.3048
