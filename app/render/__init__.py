"""Pictures and papers, drawn from core values. Never touches the store."""
