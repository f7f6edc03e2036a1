"""Generic device profiles, one TOML file each."""
