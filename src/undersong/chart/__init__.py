"""The number chart: model, reader, writer, letters and numbers, the set."""
