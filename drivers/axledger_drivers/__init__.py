"""Device drivers: decoders without I/O, transports, profiles."""
