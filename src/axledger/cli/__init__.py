"""The command line; every heavy import stays inside its command."""
