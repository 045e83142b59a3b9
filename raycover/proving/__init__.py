"""What a space needs, judged; what would mend a miss."""
