"""Water: temperature, oxygen and light over the depth of a water and through the year."""
