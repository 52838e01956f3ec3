"""Schedule, click, instruments, mix and audio files."""
