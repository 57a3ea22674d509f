namespace TankWatch.Service.Operation;

internal static class PrivateFolder
{
    /// <summary>Makes a folder that only this user can look into, where the system knows such a thing.</summary>
    public static DirectoryInfo Create(string path) => OperatingSystem.IsWindows()
        ? Directory.CreateDirectory(path)
        : Directory.CreateDirectory(path, UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute);
}
