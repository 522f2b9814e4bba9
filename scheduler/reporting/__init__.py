"""reporting."""
