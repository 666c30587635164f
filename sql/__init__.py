"""SQL files, shipped as package data."""
