"""Warranty money: terms of each unit, coverage of each fitted part, claims, what to test, register and bill."""
