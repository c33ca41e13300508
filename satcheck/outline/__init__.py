"""What of a photo is the part: never by texture, which would drop exactly the rich areas."""
