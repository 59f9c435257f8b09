"""The look-through: one event after another, a person says what is there."""
