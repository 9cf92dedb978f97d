"""What a file names, and no check may import."""


class Camera: ...


class Dance: ...
