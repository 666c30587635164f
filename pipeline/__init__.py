"""preseason: which units will leave a customer without cooling, known before the season."""

__version__ = "0.1.0"
