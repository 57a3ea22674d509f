namespace TankWatch.Service.Operation;

/// <summary>What answers GET answers HEAD too: the server itself leaves the body out.</summary>
internal static class ReadMethods
{
    private static readonly HttpMethodMetadata GetAndHead = new([HttpMethods.Get, HttpMethods.Head]);

    /// <summary>For answers that end; a stream would go on for nobody. Endpoints of other methods stay as they are.</summary>
    public static T WithHead<T>(this T endpoints) where T : IEndpointConventionBuilder
    {
        endpoints.Finally(endpoint =>
        {
            if (endpoint.Metadata.OfType<IHttpMethodMetadata>().LastOrDefault() is not { HttpMethods: var methods } || methods is ["GET"])
            {
                endpoint.Metadata.Add(GetAndHead);
            }
        });
        return endpoints;
    }
}
