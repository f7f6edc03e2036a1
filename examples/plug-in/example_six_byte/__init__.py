"""An example plug-in: an invented distance meter that sends blocks of six bytes."""
