"""One pure function per chart."""
