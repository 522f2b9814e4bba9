"""racks."""
