"""A card on its way in: bags, pictures, times, sequences; moved cards and corrected clocks."""
