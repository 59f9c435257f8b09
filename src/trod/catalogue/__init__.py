"""What commands and pages both call. Functions take and give records or plain values, never a request."""
