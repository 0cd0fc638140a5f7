"""From raw readings to reduced soundings."""
