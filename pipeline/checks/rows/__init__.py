"""One file per row check; each holds ``CHECK`` and is found by ``pipeline.checks.registry``."""
