"""What a builder asks: reads studies, spans the space, calls physics, picks the front, writes and draws."""
