"""harpkeys: which keys a lever harp reaches, and when its levers must move, for a given score."""

__version__ = "0.1.0"
