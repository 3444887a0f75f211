"""What stands: signals seen in an Assessment and in the house, the alarms they raise, the messages that makes."""
