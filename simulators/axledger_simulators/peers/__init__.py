"""The far ends of links: what carries a simulated device's bytes to an ordinary address."""
