"""From bytes to readings as sent, or to quarantine with a reason.

Payload formats, time rules, loggers' files and the MQTT connection.
"""
