"""coldlash: valve clearances of old air-cooled pushrod engines, measured, set, kept and understood."""

__version__ = "0.1.0"
