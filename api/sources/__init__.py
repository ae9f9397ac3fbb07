"""Where input comes from: today an invented valley for the demo."""
