"""The instrument: strings, levers, tunings, harp files and the player's times."""
