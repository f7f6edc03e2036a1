"""Plan and whiskers, as SVG and as characters."""
