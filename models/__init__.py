"""Where the weights of the reader come from: data, composition, training, export."""
