"""From soundings and a shoreline to the lake bed."""
