"""From a lake bed to the tables a surveyor signs."""
