"""Small parts that every window uses: style, number boxes, messages, file windows."""
