"""What every picture and page is made of: strokes, lengths, places for words, colours, the frame of a page."""
