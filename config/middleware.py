"""Headers that every answer carries."""


class ContentSecurityPolicyMiddleware:
    """Only our own files: no script, style, font or picture from elsewhere, and none written into a page."""

    POLICY = (
        "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'self'; "
        "form-action 'self'; frame-ancestors 'none'"
    )

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", self.POLICY)
        response.headers.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
        return response
