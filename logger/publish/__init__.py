"""What leaves the cart while it runs: the feed, MQTT, buzzer and valve."""
