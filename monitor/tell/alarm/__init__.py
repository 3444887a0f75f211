"""How alarms are worded, and carried to people."""
