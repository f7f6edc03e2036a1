"""The one weighted network, its results and their conformity; no input or output."""
